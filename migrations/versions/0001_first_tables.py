"""First tables: raw files, jobs, days with their files, results."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

RAW_FILE = "raw_files.sha256"


def upgrade() -> None:
    op.create_table(
        "raw_files",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("size_bytes", sa.BigInteger(), nullable=False),
        sa.Column("stored_at", sa.DateTime(), nullable=False),
    )
    create_jobs()
    op.create_table(
        "days",
        sa.Column("id", sa.Integer(), primary_key=True, autoincrement=True),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("date", sa.Date()),
        sa.Column("content_sha256", sa.String(64), nullable=False, unique=True),
        sa.Column("sent_as", sa.String(), nullable=False),
        sa.Column("upload_sha256", sa.String(64), sa.ForeignKey(RAW_FILE, ondelete="RESTRICT")),
        sa.Column("added_at", sa.DateTime(), nullable=False),
    )
    op.create_index("ix_days_date", "days", ["date"])
    op.create_table(
        "day_files",
        sa.Column("day_id", sa.Integer(), sa.ForeignKey("days.id", ondelete="CASCADE"), primary_key=True),
        sa.Column("path", sa.String(), primary_key=True),
        sa.Column("sha256", sa.String(64), sa.ForeignKey(RAW_FILE, ondelete="RESTRICT"), nullable=False),
    )
    op.create_index("ix_day_files_sha256", "day_files", ["sha256"])
    create_results()


def create_jobs() -> None:
    op.create_table(
        "jobs",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("kind", sa.String(40), nullable=False),
        sa.Column("label", sa.String(), nullable=False),
        sa.Column("payload", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(10), nullable=False),
        sa.Column("fraction", sa.Double(), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("error", sa.String()),
        sa.Column("target", sa.String()),
        sa.Column("starts", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("finished_at", sa.DateTime()),
        sa.CheckConstraint("state IN ('queued', 'running', 'done', 'failed')", name=op.f("ck_jobs_state")),
    )
    op.create_index("ix_jobs_state", "jobs", ["state"])
    op.create_index("ix_jobs_created_at", "jobs", ["created_at"])


def create_results() -> None:
    op.create_table(
        "results",
        sa.Column("id", sa.Integer(), primary_key=True, autoincrement=True),
        sa.Column("day_id", sa.Integer(), sa.ForeignKey("days.id", ondelete="CASCADE"), nullable=False),
        sa.Column("sha256", sa.String(64), sa.ForeignKey(RAW_FILE, ondelete="RESTRICT"), nullable=False),
        sa.Column("version", sa.String(40), nullable=False),
        sa.Column("summary", sa.JSON(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
    )
    op.create_index("ix_results_day_id", "results", ["day_id"])


def downgrade() -> None:
    for table in ("results", "day_files", "days", "jobs", "raw_files"):
        op.drop_table(table)
