"""A new measure: how well one mode explains the mount's ringing."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.add_column("shots", sa.Column("mount_mode_fit", sa.Float(precision=53), nullable=True))
