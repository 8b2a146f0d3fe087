"""Decisions about verdicts of a correlation, and by how much a car's predictions may be off."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def _of(name: str, target: str, *, nullable: bool = False, index: bool = False) -> sa.Column:
    key = sa.ForeignKey(f"{target}.id", ondelete="RESTRICT")
    return sa.Column(name, sa.Integer(), key, nullable=nullable, index=index)


def _text(*names: str) -> list[sa.Column]:
    return [sa.Column(name, sa.String(), nullable=False) for name in names]


def upgrade() -> None:
    op.create_table(
        "decision_notes",
        sa.Column("id", sa.Integer(), primary_key=True, autoincrement=True),
        sa.Column("car", sa.String(), nullable=False, index=True),
        _of("day_id", "days", index=True),
        _of("result_id", "results"),
        _of("set_id", "prediction_sets", nullable=True),
        *_text("setup"),
        sa.Column("quantity", sa.String(40), nullable=False),
        *_text("against"),
        sa.Column("verdict", sa.String(20), nullable=False),
        *_text("told"),
        sa.Column("stance", sa.String(10), nullable=False),
        *_text("text"),
        _of("supersedes_id", "decision_notes", nullable=True),
        *_text("who"),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.CheckConstraint(
            "stance IN ('accepted', 'explained', 'doubted')", name=op.f("ck_decision_notes_stance")
        ),
    )
    op.create_table(
        "correlation_margins",
        sa.Column("car", sa.String(), primary_key=True),
        sa.Column("total", sa.Double(), nullable=False),
        sa.Column("change", sa.Double(), nullable=False),
        sa.Column("numerical_correlation", sa.Double(), nullable=False),
        *_text("who"),
        sa.Column("at", sa.DateTime(), nullable=False),
    )


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
