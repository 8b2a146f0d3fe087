"""What each route asks for: the least role that may use it. A route without a line here is open to nobody.

Safe methods are named like the others: a new page that shows too much must be thought of, too.
"""

from __future__ import annotations

from server.accounts.roles import ANYBODY, ENGINEER, LEAD, OWNER, READER

_LINES = {
    ANYBODY: """
        GET /invited
        POST /invited
        GET /sign-in
        POST /sign-in
    """,
    READER: """
        GET /
        GET /account
        POST /account/devices
        POST /account/password
        POST /account/tokens
        POST /account/tokens/{number}/end
        GET /add
        GET /api/correlation
        GET /api/correlation/decisions
        GET /api/correlation/taps
        GET /api/days
        GET /api/days/{day_id}
        GET /api/days/{day_id}/car
        GET /api/days/{day_id}/car/{slug}
        GET /api/days/{day_id}/figures
        GET /api/days/{day_id}/figures/{name}
        GET /api/days/{day_id}/folder.zip
        GET /api/days/{day_id}/passes
        GET /api/days/{day_id}/passes.csv
        GET /api/days/{day_id}/photos
        GET /api/days/{day_id}/photos/{photo_id}
        GET /api/days/{day_id}/result
        GET /api/days/{day_id}/results
        GET /api/days/{day_id}/results/{result_id}
        GET /api/days/{day_id}/revisions/newest
        GET /api/days/{day_id}/revisions/{number}
        GET /api/days/{day_id}/runs/{number}/channels
        GET /api/days/{day_id}/runs/{number}/trace
        GET /api/days/{day_id}/studies
        GET /api/days/{day_id}/studies/{number}
        GET /api/events
        GET /api/events/head
        GET /api/files/{sha256}
        GET /api/jobs
        GET /api/jobs/{job_id}
        GET /api/openapi.json
        GET /api/predictions
        GET /api/predictions/cases
        GET /api/predictions/matching
        GET /api/predictions/taps
        GET /api/predictions/{number}
        GET /api/refits/{number}
        GET /api/uploads/{upload_id}
        POST /api/verify
        GET /api/verify/{number}
        GET /cars
        GET /correlation
        GET /correlation/figures/{name}.csv
        GET /correlation/figures/{name}.json
        GET /correlation/figures/{name}/table
        GET /correlation/taps
        GET /correlation/verdict
        GET /correlation/worth
        GET /days/{day_id}
        GET /days/{day_id}/adding/{job_id}
        GET /days/{day_id}/adding/{job_id}/status
        GET /days/{day_id}/car
        GET /days/{day_id}/car/{slug}
        GET /days/{day_id}/change/{slug}
        GET /days/{day_id}/compare
        GET /days/{day_id}/compare/{name}.csv
        GET /days/{day_id}/compare/{name}.json
        GET /days/{day_id}/compare/{name}/table
        GET /days/{day_id}/course
        GET /days/{day_id}/course.csv
        GET /days/{day_id}/course.json
        GET /days/{day_id}/figures/{name}.csv
        GET /days/{day_id}/figures/{name}.json
        GET /days/{day_id}/figures/{name}/table
        GET /days/{day_id}/folder.zip
        GET /days/{day_id}/history
        GET /days/{day_id}/now
        GET /days/{day_id}/origin
        GET /days/{day_id}/report.html
        GET /days/{day_id}/report.pdf
        GET /days/{day_id}/result
        GET /days/{day_id}/result/{section}
        GET /days/{day_id}/results/{result_id}
        GET /days/{day_id}/results/{result_id}/origin
        GET /days/{day_id}/revisions/{number}
        GET /days/{day_id}/runs/{number}
        GET /days/{day_id}/runs/{number}/figures/{name}.csv
        GET /days/{day_id}/runs/{number}/figures/{name}.json
        GET /days/{day_id}/runs/{number}/figures/{name}/table
        GET /days/{day_id}/runs/{number}/passes.csv
        GET /days/{day_id}/runs/{number}/preview/{job_id}
        GET /days/{day_id}/runs/{number}/status/{job_id}
        GET /days/{day_id}/sign-off
        GET /days/{day_id}/studies/{number}
        GET /days/{day_id}/tufts
        GET /days/{day_id}/tufts/adding/{job_id}
        GET /days/{day_id}/tufts/adding/{job_id}/status
        GET /days/{day_id}/tufts/stations
        GET /days/{day_id}/tufts/{photo_id}
        GET /days/{day_id}/tufts/{photo_id}/original
        GET /days/{day_id}/tufts/{photo_id}/picture/{size}
        GET /days/{day_id}/tufts/{photo_id}/reading/{job_id}
        GET /help
        GET /help/{topic}
        GET /history
        GET /history/{number}
        GET /jobs
        GET /jobs/{job_id}
        GET /jobs/{job_id}/status
        GET /live
        GET /people
        GET /plans
        GET /plans/{number}
        GET /plans/{number}/sheet
        GET /predictions
        GET /predictions/add
        GET /predictions/matching
        GET /predictions/tables/{number}
        GET /predictions/tables/{number}/rows
        GET /predictions/{number}
        GET /predictions/{number}/cases.csv
        GET /predictions/{number}/figure.csv
        GET /predictions/{number}/figure.json
        GET /predictions/{number}/figure/table
        GET /refits/{number}
        GET /search
        GET /season/compare
        GET /season/compare/{name}.csv
        GET /season/compare/{name}.json
        GET /season/compare/{name}/table
        GET /season/figures/{name}.csv
        GET /season/figures/{name}.json
        GET /season/figures/{name}/table
        POST /sign-out
        POST /theme
        OPTIONS /uploads
        HEAD /uploads/{upload_id}
        OPTIONS /uploads/{upload_id}
        POST /verified
        GET /verified/{number}
        POST /who
    """,
    ENGINEER: """
        POST /add/folder
        POST /add/logs
        POST /add/sample
        POST /api/days
        POST /api/days/logs
        POST /api/days/zip
        PATCH /api/days/{day_id}/car/{slug}
        PATCH /api/days/{day_id}/channels
        POST /api/days/{day_id}/fit
        POST /api/days/{day_id}/photos
        POST /api/days/{day_id}/photos/{photo_id}
        POST /api/days/{day_id}/photos/{photo_id}/marks
        POST /api/days/{day_id}/runs
        POST /api/days/{day_id}/runs/{number}/passes
        POST /api/days/{day_id}/runs/{number}/passes/clear
        POST /api/days/{day_id}/studies
        POST /api/jobs/{job_id}/cancel
        POST /api/refits
        POST /api/uploads
        POST /backups
        POST /days/{day_id}/car/{slug}
        POST /days/{day_id}/change/{slug}
        POST /days/{day_id}/fit
        POST /days/{day_id}/runs
        POST /days/{day_id}/runs/{number}/logs
        POST /days/{day_id}/runs/{number}/notes
        POST /days/{day_id}/runs/{number}/passes
        POST /days/{day_id}/runs/{number}/preview
        POST /days/{day_id}/runs/{number}/preview/{job_id}
        POST /days/{day_id}/runs/{number}/roles
        POST /days/{day_id}/runs/{number}/setup
        POST /days/{day_id}/study
        POST /days/{day_id}/tufts
        POST /days/{day_id}/tufts/clock
        POST /days/{day_id}/tufts/stations
        POST /days/{day_id}/tufts/{photo_id}
        POST /days/{day_id}/tufts/{photo_id}/marks
        POST /days/{day_id}/tufts/{photo_id}/points
        POST /days/{day_id}/tufts/{photo_id}/read
        POST /days/{day_id}/tufts/{photo_id}/stations
        POST /days/{day_id}/typed
        POST /jobs/{job_id}/cancel
        POST /plans
        POST /refits
        POST /uploads
        DELETE /uploads/{upload_id}
        PATCH /uploads/{upload_id}
    """,
    LEAD: """
        POST /api/correlation/decisions
        POST /api/correlation/margins
        POST /api/correlation/taps
        POST /api/predictions
        PUT /api/predictions/matching
        POST /api/predictions/rows
        POST /api/predictions/{number}/withdraw
        POST /correlation/margins
        POST /correlation/taps
        POST /correlation/verdict
        POST /days/{day_id}/sign-off
        POST /days/{day_id}/sign-off/amend
        POST /predictions/add
        POST /predictions/matching
        POST /predictions/tables/{number}
        POST /predictions/tables/{number}/drop
        POST /predictions/tables/{number}/rows
        POST /predictions/{number}/withdraw
    """,
    OWNER: """
        POST /people/invitations
        POST /people/invitations/{number}/withdraw
        POST /people/{number}/closed
        POST /people/{number}/password
        POST /people/{number}/role
    """,
}

RULES = {tuple(line.split()): need for need, lines in _LINES.items() for line in lines.split("\n") if line.strip()}


def need_of(method: str, path: str) -> str | None:
    """The role that a route asks for, by its method and its path with the names of its parts; None without a rule."""
    return RULES.get((method, path))
