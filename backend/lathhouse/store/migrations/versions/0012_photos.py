"""The octets of pictures"""

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "photos",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("size_bytes", sa.Integer(), nullable=False),
        sa.Column("received_at", sa.Text(), nullable=False),
        sa.Column("octets", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "sha256"),
    )


def downgrade() -> None:
    op.drop_table("photos")
