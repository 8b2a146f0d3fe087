"""Days as chains of revisions, events in a sealed chain, uploads in pieces; jobs get a lane, a day, a person."""

import datetime as dt
import hashlib
import json

import sqlalchemy as sa
from alembic import op

from server.archive.seals import seal_statements

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

RAW_FILE = "raw_files.sha256"
# Rows of these are never altered nor removed; `results` lets go of its summary, which is made from the result.
SEALED = {
    "events": "",
    "day_revisions": "",
    "revision_files": "",
    "results": " OF id, day_id, revision_id, sha256, version, moved, made_at",
}
BEFORE_EVENTS = "before events were kept"


def upgrade() -> None:
    create_revisions()
    create_events()
    create_uploads()
    extend_jobs()
    first_revisions()
    extend_results()
    op.drop_table("day_files")
    first_events()
    for table, columns in SEALED.items():
        for statement in seal_statements(op.get_bind().dialect.name, table, columns):
            op.execute(statement)


def create_revisions() -> None:
    op.create_table(
        "day_revisions",
        sa.Column("id", sa.Integer(), primary_key=True, autoincrement=True),
        sa.Column("day_id", sa.Integer(), sa.ForeignKey("days.id", ondelete="RESTRICT"), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("content_sha256", sa.String(64), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.UniqueConstraint("day_id", "number"),
    )
    op.create_index("ix_day_revisions_day_id", "day_revisions", ["day_id"])
    op.create_table(
        "revision_files",
        sa.Column(
            "revision_id", sa.Integer(), sa.ForeignKey("day_revisions.id", ondelete="RESTRICT"), primary_key=True
        ),
        sa.Column("path", sa.String(), primary_key=True),
        sa.Column("sha256", sa.String(64), sa.ForeignKey(RAW_FILE, ondelete="RESTRICT"), nullable=False),
    )
    op.create_index("ix_revision_files_sha256", "revision_files", ["sha256"])
    op.create_table(
        "column_choices",
        sa.Column("id", sa.Integer(), primary_key=True, autoincrement=True),
        sa.Column("column_name", sa.String(), nullable=False),
        sa.Column("role", sa.String(40), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("chosen_at", sa.DateTime(), nullable=False),
        sa.UniqueConstraint("column_name", "role"),
    )
    op.create_index("ix_column_choices_column_name", "column_choices", ["column_name"])


def create_events() -> None:
    op.create_table(
        "events",
        sa.Column("id", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("day_id", sa.Integer()),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("before", sa.String()),
        sa.Column("after", sa.String()),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("previous_sha256", sa.String(64), nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False, unique=True),
    )
    op.create_index("ix_events_kind", "events", ["kind"])
    op.create_index("ix_events_day_id", "events", ["day_id"])


def create_uploads() -> None:
    op.create_table(
        "uploads",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("sent_metadata", sa.String(), nullable=False),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("received_bytes", sa.BigInteger(), nullable=False),
        sa.Column("state", sa.String(10), nullable=False),
        sa.Column("sha256", sa.String(64), sa.ForeignKey(RAW_FILE, ondelete="RESTRICT")),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("device", sa.String(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("touched_at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("state IN ('receiving', 'received', 'refused')", name=op.f("ck_uploads_state")),
    )
    op.create_index("ix_uploads_state", "uploads", ["state"])


def extend_jobs() -> None:
    with op.batch_alter_table("jobs") as jobs:
        jobs.add_column(sa.Column("lane", sa.String(10), nullable=False, server_default="quick"))
        jobs.add_column(sa.Column("day_id", sa.Integer()))
        jobs.add_column(sa.Column("who", sa.String(), nullable=False, server_default=""))
        jobs.drop_constraint(op.f("ck_jobs_state"), type_="check")
        jobs.create_check_constraint(
            op.f("ck_jobs_state"), "state IN ('queued', 'running', 'done', 'failed', 'cancelled')"
        )
        jobs.create_check_constraint(op.f("ck_jobs_lane"), "lane IN ('quick', 'long')")
        jobs.create_index("ix_jobs_day_id", ["day_id"])
    with op.batch_alter_table("jobs") as jobs:  # the defaults were for the rows that were there
        jobs.alter_column("lane", existing_type=sa.String(10), server_default=None)
        jobs.alter_column("who", existing_type=sa.String(), server_default=None)


def first_revisions() -> None:
    """Every day that is here becomes its own first revision."""
    op.execute(
        "INSERT INTO day_revisions (day_id, number, content_sha256, who, what, made_at) "
        f"SELECT id, 1, content_sha256, '', 'added, {BEFORE_EVENTS}', added_at FROM days ORDER BY id"
    )
    op.execute(
        "INSERT INTO revision_files (revision_id, path, sha256) "
        "SELECT r.id, f.path, f.sha256 FROM day_files f JOIN day_revisions r ON r.day_id = f.day_id"
    )


def extend_results() -> None:
    with op.batch_alter_table("results") as results:
        results.add_column(sa.Column("revision_id", sa.Integer()))
        results.add_column(sa.Column("moved", sa.JSON(), nullable=False, server_default="[]"))
    op.execute("UPDATE results SET revision_id = (SELECT r.id FROM day_revisions r WHERE r.day_id = results.day_id)")
    with op.batch_alter_table("results") as results:
        results.alter_column("revision_id", existing_type=sa.Integer(), nullable=False)
        results.alter_column("moved", existing_type=sa.JSON(), server_default=None)
        results.create_foreign_key(
            op.f("fk_results_revision_id_day_revisions"), "day_revisions", ["revision_id"], ["id"], ondelete="RESTRICT"
        )
        results.create_index("ix_results_revision_id", ["revision_id"])


def first_events() -> None:
    """The chain begins with what the archive held: sealed as `server/archive/events.py` says, written out here."""
    bind = op.get_bind()
    days = bind.execute(sa.text("SELECT id, name, content_sha256 FROM days ORDER BY id")).all()
    previous, at = "0" * 64, dt.datetime.now(dt.UTC).isoformat(timespec="microseconds")
    for number, day in enumerate(days, start=1):
        event = {
            "id": number,
            "at": at,
            "who": "Stillair",
            "kind": "day-found",
            "day_id": day.id,
            "subject": day.name,
            "before": None,
            "after": _canonical({"content_sha256": day.content_sha256, "revision": 1}),
            "reason": f"kept {BEFORE_EVENTS}",
            "previous_sha256": previous,
        }
        previous = event["sha256"] = hashlib.sha256(_canonical(event).encode()).hexdigest()
        columns = ", ".join(event)
        bind.execute(sa.text(f"INSERT INTO events ({columns}) VALUES (:{', :'.join(event)})"), event)


def _canonical(value: object) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
