"""What lists show of a revision beside it, made from its files and made anew when its form changes."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "revision_facts",
        sa.Column(
            "revision_id", sa.Integer(), sa.ForeignKey("day_revisions.id", ondelete="RESTRICT"), primary_key=True
        ),
        sa.Column("format", sa.Integer(), nullable=False),
        sa.Column("brief", sa.JSON(), nullable=False),
        sa.Column("runs", sa.JSON(), nullable=False),
        sa.Column("given", sa.JSON(), nullable=False),
    )


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
