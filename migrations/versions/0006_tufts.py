"""Photos of tufts, what is known of them, marks, stations, camera views, cameras: rows that are only appended."""

import sqlalchemy as sa
from alembic import op

from server.archive.seals import seal_statements

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

DAY, PHOTO, RAW_FILE = "days.id", "tuft_photos.id", "raw_files.sha256"
TABLES = ("tuft_photos", "tuft_photo_facts", "tuft_marks", "tuft_stations", "tuft_views", "tuft_cameras")


def upgrade() -> None:
    create_photos()
    create_facts()
    create_marks()
    create_stations()
    create_views()
    for table in TABLES:
        for statement in seal_statements(op.get_bind().dialect.name, table):
            op.execute(statement)


def _number() -> sa.Column:
    return sa.Column("id", sa.Integer(), primary_key=True, autoincrement=True)


def _of(name: str, other: str, *, nullable: bool = False) -> sa.Column:
    return sa.Column(name, sa.Integer(), sa.ForeignKey(other, ondelete="RESTRICT"), nullable=nullable)


def _texts(*names: str) -> list[sa.Column]:
    return [sa.Column(name, sa.String(), nullable=False) for name in names]


def _whole(*names: str) -> list[sa.Column]:
    return [sa.Column(name, sa.Integer(), nullable=False) for name in names]


def _told() -> list[sa.Column]:
    return [sa.Column("who", sa.String(), nullable=False), sa.Column("made_at", sa.DateTime(), nullable=False)]


def create_photos() -> None:
    op.create_table(
        "tuft_photos",
        _number(),
        _of("day_id", DAY),
        sa.Column("kind", sa.String(12), nullable=False),
        sa.Column("sha256", sa.String(64), sa.ForeignKey(RAW_FILE, ondelete="RESTRICT"), nullable=False),
        *_texts("name", "path"),
        *_whole("width_px", "height_px"),
        *_texts("taken", "camera", "said"),
        *_told(),
        sa.CheckConstraint("kind IN ('photo', 'prediction')", name=op.f("ck_tuft_photos_kind")),
        sa.UniqueConstraint("day_id", "sha256"),
        sa.UniqueConstraint("day_id", "path"),
    )
    op.create_index("ix_tuft_photos_day_id", "tuft_photos", ["day_id"])


def create_facts() -> None:
    op.create_table(
        "tuft_photo_facts",
        _number(),
        _of("photo_id", PHOTO),
        *_whole("number"),
        sa.Column("run", sa.Integer(), nullable=True),
        *_texts("setup", "part", "view", "notes"),
        *(sa.Column(name, sa.Boolean(), nullable=False) for name in ("settled", "standing")),
        sa.Column("flow_rad", sa.Double(), nullable=True),
        *_texts("burst"),
        sa.Column("removed", sa.Boolean(), nullable=False),
        *_told(),
        sa.UniqueConstraint("photo_id", "number"),
    )
    op.create_index("ix_tuft_photo_facts_photo_id", "tuft_photo_facts", ["photo_id"])


def create_marks() -> None:
    op.create_table(
        "tuft_marks",
        _number(),
        _of("photo_id", PHOTO),
        *_texts("layer"),
        sa.Column("mark", sa.String(40), nullable=False),
        *_whole("number"),
        sa.Column("entry", sa.String(40), nullable=False),
        *(sa.Column(name, sa.Double(), nullable=False) for name in ("x_px", "y_px")),
        sa.Column("direction_rad", sa.Double(), nullable=True),
        sa.Column("condition", sa.String(12), nullable=False),
        *_texts("station"),
        sa.Column("by", sa.String(8), nullable=False),
        sa.Column("removed", sa.Boolean(), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        *_told(),
        sa.UniqueConstraint("photo_id", "layer", "mark", "number"),
        sa.UniqueConstraint("photo_id", "entry"),
    )
    op.create_index("ix_tuft_marks_photo_id", "tuft_marks", ["photo_id"])


def create_stations() -> None:
    op.create_table(
        "tuft_stations",
        _number(),
        _of("day_id", DAY),
        *_texts("part", "setup"),
        *_whole("number"),
        *_texts("source"),
        _of("plan_photo_id", PHOTO, nullable=True),
        sa.Column("stations", sa.JSON(), nullable=False),
        *_told(),
        sa.UniqueConstraint("day_id", "part", "setup", "number"),
    )
    op.create_index("ix_tuft_stations_day_id", "tuft_stations", ["day_id"])


def create_views() -> None:
    op.create_table(
        "tuft_views",
        _number(),
        _of("day_id", DAY),
        *_texts("view", "part"),
        *_whole("number"),
        _of("photo_id", PHOTO),
        sa.Column("pairs", sa.JSON(), nullable=False),
        *_told(),
        sa.UniqueConstraint("day_id", "view", "part", "number"),
    )
    op.create_index("ix_tuft_views_day_id", "tuft_views", ["day_id"])
    op.create_table(
        "tuft_cameras",
        _number(),
        _of("day_id", DAY),
        *_texts("camera"),
        *_whole("number"),
        sa.Column("ahead_s", sa.Double(), nullable=False),
        *_told(),
        sa.UniqueConstraint("day_id", "camera", "number"),
    )
    op.create_index("ix_tuft_cameras_day_id", "tuft_cameras", ["day_id"])


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
