"""Accounts, the devices that are signed in, invitations and tokens of programs."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

ROLES = ("advisor", "engineer", "lead", "owner")


def upgrade() -> None:
    op.create_table(
        "accounts",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("name", sa.String(60), nullable=False),
        sa.Column("name_key", sa.String(120), nullable=False),
        sa.Column("role", sa.String(10), nullable=False),
        sa.Column("password_hash", sa.String(200), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("closed_at", sa.DateTime(), nullable=True),
        sa.UniqueConstraint("name_key"),
        sa.CheckConstraint(f"role IN {ROLES}", name="role"),
    )
    op.create_table(
        "sign_ins",
        sa.Column("key_sha256", sa.String(64), primary_key=True),
        sa.Column("account_id", sa.Integer(), sa.ForeignKey("accounts.id", ondelete="RESTRICT"), nullable=False),
        sa.Column("device", sa.String(120), nullable=False),
        sa.Column("began_at", sa.DateTime(), nullable=False),
        sa.Column("marked_at", sa.DateTime(), nullable=False),
        sa.Column("ends_at", sa.DateTime(), nullable=False),
        sa.Column("replaced_at", sa.DateTime(), nullable=True),
    )
    op.create_index("ix_sign_ins_account_id", "sign_ins", ["account_id"])
    op.create_table(
        "invitations",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("code_sha256", sa.String(64), nullable=False),
        sa.Column("role", sa.String(10), nullable=False),
        sa.Column("account_id", sa.Integer(), sa.ForeignKey("accounts.id", ondelete="RESTRICT"), nullable=True),
        sa.Column("note", sa.String(120), nullable=False),
        sa.Column("made_by", sa.String(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("ends_at", sa.DateTime(), nullable=False),
        sa.Column("used_at", sa.DateTime(), nullable=True),
        sa.UniqueConstraint("code_sha256"),
        sa.CheckConstraint(f"role IN {ROLES}", name="role"),
    )
    op.create_table(
        "program_tokens",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("key_sha256", sa.String(64), nullable=False),
        sa.Column("account_id", sa.Integer(), sa.ForeignKey("accounts.id", ondelete="RESTRICT"), nullable=False),
        sa.Column("role", sa.String(10), nullable=False),
        sa.Column("name", sa.String(60), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("ended_at", sa.DateTime(), nullable=True),
        sa.UniqueConstraint("key_sha256"),
        sa.CheckConstraint(f"role IN {ROLES}", name="role"),
    )
    op.create_index("ix_program_tokens_account_id", "program_tokens", ["account_id"])


def downgrade() -> None:
    raise NotImplementedError("an older program opens the copy that was made before the change")
