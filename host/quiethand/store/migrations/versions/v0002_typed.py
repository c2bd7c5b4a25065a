"""What people type, the method that figures come from, figures that were replaced; shots by flag and target."""

import json

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "calibrations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("sensor_uid", sa.String(length=32), nullable=False),
        sa.Column("kind", sa.String(length=24), nullable=False),
        sa.Column("from_day", sa.String(length=10), nullable=False),
        sa.Column("document", sa.JSON(), nullable=False),
        sa.Column("unix_s", sa.Float(precision=53), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calibrations")),
        sa.UniqueConstraint("uid", name=op.f("uq_calibrations_uid")),
    )
    op.create_index("ix_calibrations_in_force", "calibrations", ["sensor_uid", "kind", "from_day"], unique=False)
    op.create_table(
        "limits",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("archer", sa.String(length=200), nullable=False),
        sa.Column("bow", sa.String(length=200), nullable=False),
        sa.Column("measure", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Float(precision=53), nullable=True),
        sa.Column("unit", sa.String(length=16), nullable=False),
        sa.Column("from_day", sa.String(length=10), nullable=False),
        sa.Column("unix_s", sa.Float(precision=53), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_limits")),
        sa.UniqueConstraint("uid", name=op.f("uq_limits_uid")),
    )
    op.create_index("ix_limits_in_force", "limits", ["archer", "bow", "from_day"], unique=False)
    op.create_table(
        "sensors",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sensor_uid", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("remark", sa.String(), nullable=False),
        sa.Column("unix_s", sa.Float(precision=53), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sensors")),
        sa.UniqueConstraint("sensor_uid", name=op.f("uq_sensors_sensor_uid")),
    )
    op.create_table(
        "typed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("unix_s", sa.Float(precision=53), nullable=False),
        sa.Column("kind", sa.String(length=24), nullable=False),
        sa.Column("recording", sa.String(length=80), nullable=True),
        sa.Column("departure_s", sa.Float(precision=53), nullable=True),
        sa.Column("payload", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_typed")),
        sa.UniqueConstraint("uid", name=op.f("uq_typed_uid")),
    )
    op.create_index(op.f("ix_typed_recording"), "typed", ["recording"], unique=False)
    op.create_table(
        "setup_versions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("archer", sa.String(length=200), nullable=False),
        sa.Column("bow", sa.String(length=200), nullable=False),
        sa.Column("from_day", sa.String(length=10), nullable=False),
        sa.Column("setup_id", sa.Integer(), nullable=False),
        sa.Column("unix_s", sa.Float(precision=53), nullable=False),
        sa.Column("remark", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["setup_id"], ["setups.id"], name=op.f("fk_setup_versions_setup_id_setups")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setup_versions")),
        sa.UniqueConstraint("uid", name=op.f("uq_setup_versions_uid")),
    )
    op.create_index("ix_setup_versions_in_force", "setup_versions", ["archer", "bow", "from_day"], unique=False)
    op.create_table(
        "stated_setups",
        sa.Column("recording", sa.String(length=80), nullable=False),
        sa.Column("setup_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["setup_id"], ["setups.id"], name=op.f("fk_stated_setups_setup_id_setups")),
        sa.PrimaryKeyConstraint("recording", name=op.f("pk_stated_setups")),
    )
    op.create_table(
        "calls",
        sa.Column("shot_id", sa.Integer(), nullable=False),
        sa.Column("unix_s", sa.Float(precision=53), nullable=False),
        sa.Column("right_mm", sa.Float(precision=53), nullable=True),
        sa.Column("up_mm", sa.Float(precision=53), nullable=True),
        sa.Column("word", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(["shot_id"], ["shots.id"], name=op.f("fk_calls_shot_id_shots"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("shot_id", name=op.f("pk_calls")),
    )
    op.create_table(
        "corrections",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("shot_id", sa.Integer(), nullable=False),
        sa.Column("measure", sa.String(length=24), nullable=False),
        sa.Column("value", sa.Float(precision=53), nullable=True),
        sa.Column("unix_s", sa.Float(precision=53), nullable=False),
        sa.Column("remark", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["shot_id"], ["shots.id"], name=op.f("fk_corrections_shot_id_shots"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_corrections")),
        sa.UniqueConstraint("uid", name=op.f("uq_corrections_uid")),
    )
    op.create_index(op.f("ix_corrections_shot_id"), "corrections", ["shot_id"], unique=False)
    op.create_table(
        "earlier_figures",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("shot_id", sa.Integer(), nullable=True),
        sa.Column("recording_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("replaced_unix_s", sa.Float(precision=53), nullable=False),
        sa.Column("software", sa.String(length=80), nullable=False),
        sa.Column("method", sa.Integer(), nullable=False, server_default="0"),
        sa.Column("setup_id", sa.Integer(), nullable=False),
        sa.Column("measures", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["recording_id"],
            ["recordings.id"],
            name=op.f("fk_earlier_figures_recording_id_recordings"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(["setup_id"], ["setups.id"], name=op.f("fk_earlier_figures_setup_id_setups")),
        sa.ForeignKeyConstraint(
            ["shot_id"], ["shots.id"], name=op.f("fk_earlier_figures_shot_id_shots"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_earlier_figures")),
    )
    op.create_index(op.f("ix_earlier_figures_recording_id"), "earlier_figures", ["recording_id"], unique=False)
    op.create_index(op.f("ix_earlier_figures_shot_id"), "earlier_figures", ["shot_id"], unique=False)
    op.create_table(
        "exclusions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("shot_id", sa.Integer(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("unix_s", sa.Float(precision=53), nullable=False),
        sa.Column("lifted_unix_s", sa.Float(precision=53), nullable=True),
        sa.ForeignKeyConstraint(
            ["shot_id"], ["shots.id"], name=op.f("fk_exclusions_shot_id_shots"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_exclusions")),
        sa.UniqueConstraint("uid", name=op.f("uq_exclusions_uid")),
    )
    op.create_index(op.f("ix_exclusions_shot_id"), "exclusions", ["shot_id"], unique=False)
    op.create_table(
        "impacts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("shot_id", sa.Integer(), nullable=True),
        sa.Column("archer", sa.String(length=200), nullable=False),
        sa.Column("unix_s", sa.Float(precision=53), nullable=False),
        sa.Column("day", sa.String(length=10), nullable=False),
        sa.Column("right_mm", sa.Float(precision=53), nullable=False),
        sa.Column("up_mm", sa.Float(precision=53), nullable=False),
        sa.Column("face", sa.String(length=40), nullable=False, server_default=""),
        sa.Column("distance_m", sa.Float(precision=53), nullable=True),
        sa.Column("diameter_mm", sa.Float(precision=53), nullable=True),
        sa.Column("source", sa.String(length=16), nullable=False),
        sa.Column("remark", sa.String(), nullable=False),
        sa.Column("joined_by", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["shot_id"], ["shots.id"], name=op.f("fk_impacts_shot_id_shots"), ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_impacts")),
        sa.UniqueConstraint("shot_id", name=op.f("uq_impacts_shot_id")),
        sa.UniqueConstraint("uid", name=op.f("uq_impacts_uid")),
    )
    op.create_index(op.f("ix_impacts_day"), "impacts", ["day"], unique=False)
    op.create_index(op.f("ix_impacts_unix_s"), "impacts", ["unix_s"], unique=False)
    op.create_table(
        "remarks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("uid", sa.String(length=32), nullable=False),
        sa.Column("shot_id", sa.Integer(), nullable=False),
        sa.Column("unix_s", sa.Float(precision=53), nullable=False),
        sa.Column("text", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(["shot_id"], ["shots.id"], name=op.f("fk_remarks_shot_id_shots"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_remarks")),
        sa.UniqueConstraint("uid", name=op.f("uq_remarks_uid")),
    )
    op.create_index(op.f("ix_remarks_shot_id"), "remarks", ["shot_id"], unique=False)
    op.create_table(
        "tags",
        sa.Column("shot_id", sa.Integer(), nullable=False),
        sa.Column("word", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(["shot_id"], ["shots.id"], name=op.f("fk_tags_shot_id_shots"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("shot_id", "word", name=op.f("pk_tags")),
    )
    op.create_index(op.f("ix_tags_word"), "tags", ["word"], unique=False)
    op.add_column("recordings", sa.Column("sensor_uid", sa.String(length=32), nullable=True))
    op.add_column("shots", sa.Column("method", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("shots", sa.Column("flagged", sa.Boolean(), nullable=False, server_default=sa.false()))
    op.add_column("shots", sa.Column("face", sa.String(length=40), nullable=False, server_default=""))
    op.add_column("shots", sa.Column("distance_m", sa.Float(precision=53), nullable=True))
    _flag_old_shots()


def _flag_old_shots() -> None:
    connection = op.get_bind()
    shots = sa.table(
        "shots", sa.column("id", sa.Integer), sa.column("flags", sa.JSON), sa.column("flagged", sa.Boolean)
    )
    has_any = sa.cast(shots.c.flags, sa.Text) != json.dumps([])
    flagged = [
        row.id
        for row in connection.execute(sa.select(shots.c.id, shots.c.flags).where(has_any)).all()
        if any(flag.get("verdict") != "too_close_to_tell" for flag in row.flags)
    ]
    for at in range(0, len(flagged), 500):
        connection.execute(sa.update(shots).where(shots.c.id.in_(flagged[at : at + 500])).values(flagged=True))
