"""Entries that tablets sent, by id: what was kept once is never kept twice."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "kept_entries",
        sa.Column("id", sa.String(60), primary_key=True),
        sa.Column("tablet", sa.String(40), nullable=False, index=True),
        sa.Column("event_id", sa.Integer(), sa.ForeignKey("events.id", ondelete="RESTRICT"), nullable=True),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("kept_at", sa.DateTime(), nullable=False),
    )


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
