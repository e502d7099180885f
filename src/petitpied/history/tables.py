"""The database's tables as they are now; how they came to be: `migrations`.

``petitpied_bake`` holds a bake's facts, ``petitpied_record`` its whole record (JSON, deflated),
``petitpied_values`` the shells' values once more, packed so that ten thousand bakes are read in
a second (`packing` knows the layout). ``petitpied_photo`` holds the records of further photos of a
bake's tray: a bake's values are then of all its photos. ``petitpied_event``: what changed, when.
"""

import sqlalchemy as sa

METADATA = sa.MetaData()

VERSION = sa.Table("petitpied_version", METADATA, sa.Column("version", sa.Integer, nullable=False))

BAKE = sa.Table(
    "petitpied_bake",
    METADATA,
    sa.Column("photo_sha256", sa.String(64), primary_key=True),
    sa.Column("baked_at", sa.String(40), nullable=False),  # ISO 8601 with offset
    sa.Column("baked_at_s", sa.Double, nullable=False, index=True),  # Unix time, for the order
    sa.Column("logged_at", sa.String(40), nullable=False),
    sa.Column("oven", sa.Text, nullable=False),
    sa.Column("rack", sa.Text),
    sa.Column("turn_deg", sa.Integer, nullable=False),
    sa.Column("set_temperature_c", sa.Double),
    sa.Column("fan", sa.Boolean),
    sa.Column("liner", sa.Text),
    sa.Column("rest_minutes", sa.Double),
    sa.Column("humidity_rel", sa.Double),
    sa.Column("flavour", sa.Text),
    sa.Column("batch", sa.Text),
    sa.Column("note", sa.Text),
)

RECORD = sa.Table(
    "petitpied_record",
    METADATA,
    sa.Column("photo_sha256", sa.ForeignKey(BAKE.c.photo_sha256), primary_key=True),
    sa.Column("json_deflated", sa.LargeBinary, nullable=False),
)

VALUES = sa.Table(
    "petitpied_values",
    METADATA,
    sa.Column("photo_sha256", sa.ForeignKey(BAKE.c.photo_sha256), primary_key=True),
    sa.Column("ids", sa.Text, nullable=False),  # JSON list
    sa.Column("columns", sa.Text, nullable=False),  # names of the columns, spaces between
    sa.Column("packed", sa.LargeBinary, nullable=False),
)

PHOTO = sa.Table(
    "petitpied_photo",
    METADATA,
    sa.Column("photo_sha256", sa.String(64), primary_key=True),
    sa.Column("bake_sha256", sa.ForeignKey(BAKE.c.photo_sha256), nullable=False, index=True),
    sa.Column("logged_at", sa.String(40), nullable=False),
    sa.Column("json_deflated", sa.LargeBinary, nullable=False),
)

EVENT = sa.Table(
    "petitpied_event",
    METADATA,
    sa.Column("at", sa.String(40), nullable=False),  # ISO 8601 with offset
    sa.Column("at_s", sa.Double, nullable=False),
    sa.Column("oven", sa.Text),  # NULL: the whole kitchen
    sa.Column("what", sa.Text, nullable=False),
)
