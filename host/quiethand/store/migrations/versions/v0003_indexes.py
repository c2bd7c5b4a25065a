"""Indexes for what the page asks of a club's year."""

from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.create_index("ix_shots_archer_time", "shots", ["archer_id", "unix_s"], unique=False)
    for column in ("bow_id", "arrow_id", "method"):
        op.create_index(op.f(f"ix_shots_{column}"), "shots", [column], unique=False)
