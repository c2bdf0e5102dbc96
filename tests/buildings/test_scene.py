from buildings.models import Building, Device


def test_two_contractors_of_one_shape_do_not_see_each_other(ours, theirs):
    with ours.scope():
        assert [b.pk for b in Building.objects.all()] == [ours.building.pk]
        assert Device.objects.count() == len(ours.devices)
    with theirs.scope():
        assert [b.pk for b in Building.objects.all()] == [theirs.building.pk]


def test_signed_in_people_go_on_from_the_sign_in_page(ours, as_manager, as_technician, as_owner):
    for browser in (as_manager, as_technician, as_owner):
        assert browser.get("/account/login/").status_code == 302
