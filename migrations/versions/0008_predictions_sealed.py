"""Sets of predictions and how they ended are never altered: the database refuses."""

from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for table in ("prediction_sets", "prediction_ends"):
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'what stands in {table} is never altered'); END"
            )


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
