"""When the server's clock was trusted last"""

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column."""
    with op.batch_alter_table("sites", schema=None) as batch_op:
        batch_op.add_column(sa.Column("trusted_at", sa.Text(), nullable=True))


def downgrade() -> None:
    """Take it away."""
    with op.batch_alter_table("sites", schema=None) as batch_op:
        batch_op.drop_column("trusted_at")
