"""Decisions are never altered: the database refuses; tables of pressures measured at taps, which are neither."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "measured_taps",
        sa.Column("id", sa.Integer(), primary_key=True, autoincrement=True),
        sa.Column(
            "day_id", sa.Integer(), sa.ForeignKey("days.id", ondelete="RESTRICT"), nullable=False, index=True
        ),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("sha256", sa.String(64), sa.ForeignKey("raw_files.sha256", ondelete="RESTRICT"), nullable=False),
        sa.Column("taps", sa.Integer(), nullable=False),
        sa.Column("who", sa.String(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
    )
    for table in ("decision_notes", "measured_taps"):
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'what stands in {table} is never altered'); END"
            )


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
