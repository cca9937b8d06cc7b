"""The app's place in Django."""

from django.apps import AppConfig
from django.core import checks
from django.db.models.signals import post_migrate, pre_migrate


class PeopleConfig(AppConfig):
    """Users, roles, who may do what, the audit trail, and what every page shares."""

    name = "imaging_requests.people"

    def ready(self) -> None:
        from imaging_requests.people import guards

        for event in ("UPDATE", "DELETE"):
            guards.add_guard(
                table="people_auditevent",
                name=f"no_{event.lower()}",
                event=event,
                message="The audit trail is append-only: an event is never changed or deleted.",
            )
        guards.keep("people_user", "An account is never deleted: close it.")
        pre_migrate.connect(guards.before_migration, sender=self)
        post_migrate.connect(guards.after_migration, sender=self)
        checks.register(guards.all_stand, checks.Tags.database)
