"""By which fold a site's derived rows were made"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the number; it is unknown of what is there, which is folded again at the start."""
    with op.batch_alter_table("sites", schema=None) as batch_op:
        batch_op.add_column(sa.Column("fold_version", sa.Integer(), nullable=True))


def downgrade() -> None:
    """Take it away."""
    with op.batch_alter_table("sites", schema=None) as batch_op:
        batch_op.drop_column("fold_version")
