"""Which phone made a calendar's address, so that the address ends when that phone is cut off"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Nobody wrote down who made the earlier ones: they stay good until they are renewed or ended.
    op.add_column("calendars", sa.Column("device_id", sa.Text(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("calendars", schema=None) as batch_op:
        batch_op.drop_column("device_id")
