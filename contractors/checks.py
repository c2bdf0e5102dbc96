"""System checks: no table of contractors' rows without its keys and its policy."""

from typing import Any

from django.apps import apps
from django.core.checks import Error, register

from contractors.keys import SameContractor, TenantRows

OWN_APPS = ("contractors", "buildings", "inspections", "scheduling")


@register()
def tenant_tables_have_keys(app_configs: Any, **kwargs: Any) -> list[Error]:
    """Demand `TenantRows`, and `SameContractor` for each key to another tenant table.

    A table whose contractor has no key of its own needs one of those that is never null: it holds
    the contractor as well.
    """
    errors = []
    for model in apps.get_models():
        if model._meta.app_label not in OWN_APPS or not getattr(model, "is_tenant_table", False):
            continue
        constraints = model._meta.constraints
        if not any(isinstance(c, TenantRows) for c in constraints):
            errors.append(Error("has no TenantRows constraint", obj=model, id="contractors.E001"))
        if model._meta.base_manager_name != "objects":
            errors.append(Error("has an unscoped base manager", obj=model, id="contractors.E002"))
        kept = {c.field for c in constraints if isinstance(c, SameContractor)}
        if not model._meta.get_field("contractor").db_constraint and not any(  # type: ignore[union-attr]
            not model._meta.get_field(name).null for name in kept
        ):
            errors.append(Error("has no key to its contractor", obj=model, id="contractors.E004"))
        for field in model._meta.local_fields:
            target = field.related_model
            if not getattr(target, "is_tenant_table", False):
                continue
            if field.name not in kept or field.db_constraint:  # type: ignore[attr-defined]
                errors.append(
                    Error(
                        f"key {field.name} needs SameContractor and db_constraint=False",
                        obj=model,
                        id="contractors.E003",
                    )
                )
    return errors
