"""The app's place in Django."""

from django.apps import AppConfig


class DeliverablesConfig(AppConfig):
    """Deliverables, their checks and reviews, recalls and sealed packages."""

    name = "imaging_requests.deliverables"

    def ready(self) -> None:
        from imaging_requests.campaigns.awaited import tell_without_picture
        from imaging_requests.deliverables import (
            comparing_work,
            guards,
            jobs,
            joins_work,
            measuring,
        )
        from imaging_requests.deliverables.actions.comparing import COMPARE
        from imaging_requests.deliverables.actions.joins import ask_for_joins
        from imaging_requests.deliverables.actions.registering import REGISTER
        from imaging_requests.deliverables.joined import lost_joins, pictures_that_need
        from imaging_requests.deliverables.joining import JOIN
        from imaging_requests.deliverables.queries import (
            MEASURE,
            why_frame_stays,
            why_sent_back,
            without_picture,
        )
        from imaging_requests.deliverables.recognising import known_faces, shown_faces
        from imaging_requests.intake.actions.placing import add_hold_rule
        from imaging_requests.intake.jobs import register
        from imaging_requests.intake.rebuilding import Rebuilder, add_rebuilder
        from imaging_requests.intake.references import add_known_faces, add_references
        from imaging_requests.requesting import outlook

        guards.declare()
        add_hold_rule(why_frame_stays)
        add_references(shown_faces)
        add_known_faces(known_faces)
        add_rebuilder(Rebuilder("joined pictures", lost_joins, ask_for_joins, pictures_that_need))
        outlook.tell_returns(why_sent_back)
        tell_without_picture(without_picture)
        register(jobs.ASSEMBLE, jobs.assemble, jobs.QUEUE, jobs.LONGEST_S)
        longest_s = {JOIN: joins_work.LONGEST_S, MEASURE: measuring.LONGEST_S}
        register(JOIN, joins_work.join, joins_work.QUEUE, longest_s[JOIN], can_wait=True)
        register(
            MEASURE, measuring.measure_line, measuring.QUEUE, longest_s[MEASURE], can_wait=True
        )
        register(
            REGISTER,
            jobs.register_on_face,
            jobs.QUEUE,
            jobs.LONGEST_REGISTRATION_S,
            can_wait=True,
        )
        register(COMPARE, comparing_work.compare, comparing_work.QUEUE, comparing_work.LONGEST_S)
