"""The bar leads each role to every page of its own, and to none that is shut to it."""

import pytest
from django.urls import reverse

from config import navigation
from contractors.doors import Role

pytestmark = pytest.mark.django_db
PAGES = [
    *((role, pages) for role, pages in navigation.BY_ROLE.items()),
    ("owner", navigation.OWNER),
]


@pytest.mark.parametrize(("role", "pages"), PAGES, ids=[str(role) for role, _pages in PAGES])
def test_every_entry_of_a_roles_bar_opens_and_says_where_one_is(
    role, pages, as_manager, as_office, as_technician, as_owner, as_member, ours
):
    clients = {Role.MANAGER: as_manager, Role.OFFICE: as_office, Role.TECHNICIAN: as_technician}
    client = clients.get(role) or (as_owner if role == "owner" else as_member(ours.trainer))
    for label, name in (*pages.bar, *pages.more):
        answer = client.get(navigation.reverse(name))
        assert answer.status_code == 200, name
        if name == "tablet":
            continue
        shown = answer.context
        now = [one for one, _url, current in (*shown["navigation"], *shown["more"]) if current]
        assert now == [label]


def test_a_page_beneath_an_entry_counts_as_that_entry(ours, as_manager):
    for address in (ours.building.get_absolute_url(), reverse("riser", args=[ours.riser.pk])):
        answer = as_manager.get(address)
        now = [str(one) for one, _url, current in answer.context["navigation"] if current]
        assert now == ["Buildings"], address
        assert answer.context["more_now"] == ""
