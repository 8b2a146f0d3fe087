"""Sets of predictions and how they ended are never altered: the database refuses."""

from alembic import op

from server.archive.seals import seal_statements

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for table in ("prediction_sets", "prediction_ends"):
        for statement in seal_statements(op.get_bind().dialect.name, table):
            op.execute(statement)


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
