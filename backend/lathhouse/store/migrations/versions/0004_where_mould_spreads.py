"""Where mould spreads: what the lots beside such a lot are watched by"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("subjects", schema=None) as batch_op:
        batch_op.add_column(sa.Column("spreading_at", sa.Text(), nullable=True))
    op.create_index(
        "subjects_spreading",
        "subjects",
        ["site_id", "place_id"],
        sqlite_where=sa.text("spreading_at IS NOT NULL"),
        postgresql_where=sa.text("spreading_at IS NOT NULL"),
    )


def downgrade() -> None:
    op.drop_index("subjects_spreading", table_name="subjects")
    with op.batch_alter_table("subjects", schema=None) as batch_op:
        batch_op.drop_column("spreading_at")
