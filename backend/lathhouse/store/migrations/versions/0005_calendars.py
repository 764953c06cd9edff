"""Calendars: who has an address, and what their feeds have given out"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "calendars",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("recipient", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("made_at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "recipient"),
    )
    with op.batch_alter_table("calendars", schema=None) as batch_op:
        batch_op.create_index("calendars_by_hash", ["site_id", "hash"], unique=True)
    op.create_table(
        "calendar_entries",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("uid", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("changed_at", sa.Text(), nullable=False),
        sa.Column("cancelled_at", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("site_id", "uid"),
    )


def downgrade() -> None:
    op.drop_table("calendar_entries")
    with op.batch_alter_table("calendars", schema=None) as batch_op:
        batch_op.drop_index("calendars_by_hash")
    op.drop_table("calendars")
