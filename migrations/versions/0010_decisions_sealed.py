"""Decisions are never altered: the database refuses; tables of pressures measured at taps, which are neither."""

import sqlalchemy as sa
from alembic import op

from server.archive.seals import seal_statements

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
        for statement in seal_statements(op.get_bind().dialect.name, table):
            op.execute(statement)


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
