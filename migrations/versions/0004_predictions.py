"""Sets of predictions per car, how they ended, setups matched, tables being read in, mappings remembered."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def _raw(name: str) -> sa.Column:
    return sa.Column(name, sa.String(64), sa.ForeignKey("raw_files.sha256", ondelete="RESTRICT"), nullable=False)


def _set(name: str, **more: bool) -> sa.Column:
    return sa.Column(name, sa.Integer(), sa.ForeignKey("prediction_sets.id", ondelete="RESTRICT"), **more)


def _text(*names: str) -> list[sa.Column]:
    return [sa.Column(name, sa.String(), nullable=False) for name in names]


def _number() -> sa.Column:
    return sa.Column("id", sa.Integer(), primary_key=True, autoincrement=True)


def upgrade() -> None:
    op.create_table(
        "prediction_sets",
        _number(),
        sa.Column("car", sa.String(), nullable=False, index=True),
        sa.Column("kind", sa.String(10), nullable=False),
        *_text("name", "recipe", "author"),
        sa.Column("dated", sa.Date(), nullable=True),
        *_text("file_name"),
        sa.Column(
            "file_sha256",
            sa.String(64),
            sa.ForeignKey("raw_files.sha256", ondelete="RESTRICT"),
            nullable=False,
            index=True,
        ),
        _raw("content_sha256"),
        sa.Column("day_id", sa.Integer(), sa.ForeignKey("days.id", ondelete="RESTRICT"), nullable=True, index=True),
        sa.Column("cases", sa.Integer(), nullable=False),
        sa.Column("left_out", sa.Integer(), nullable=False),
        *_text("who"),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("kind IN ('areas', 'taps')", name=op.f("ck_prediction_sets_kind")),
    )
    op.create_table(
        "prediction_ends",
        _set("set_id", primary_key=True),
        sa.Column("how", sa.String(10), nullable=False),
        *_text("reason"),
        _set("next_id", nullable=True),
        *_text("who"),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.CheckConstraint("how IN ('withdrawn', 'revised')", name=op.f("ck_prediction_ends_how")),
    )
    op.create_table(
        "prediction_matches",
        _number(),
        sa.Column("car", sa.String(), nullable=False, index=True),
        *_text("written", "setup", "who"),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.UniqueConstraint("car", "written"),
    )
    op.create_table(
        "prediction_drafts",
        _number(),
        *_text("car", "file_name"),
        _raw("sha256"),
        _set("revises_id", nullable=True),
        sa.Column("choices", sa.JSON(), nullable=False),
        *_text("who"),
        sa.Column("made_at", sa.DateTime(), nullable=False),
    )
    op.create_table(
        "prediction_mappings",
        sa.Column("shape", sa.String(64), primary_key=True),
        sa.Column("choices", sa.JSON(), nullable=False),
        *_text("who"),
        sa.Column("at", sa.DateTime(), nullable=False),
    )


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
