"""When a lot was last taken out of a place: whoever did it has been there"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column and its index; folding the record again fills it."""
    with op.batch_alter_table("subjects", schema=None) as batch_op:
        batch_op.add_column(sa.Column("left_at", sa.Text(), nullable=True))
    op.create_index(
        "subjects_by_leaving",
        "subjects",
        ["site_id", "left_at"],
        sqlite_where=sa.text("left_at IS NOT NULL"),
        postgresql_where=sa.text("left_at IS NOT NULL"),
    )


def downgrade() -> None:
    """Take both away."""
    op.drop_index("subjects_by_leaving", table_name="subjects")
    with op.batch_alter_table("subjects", schema=None) as batch_op:
        batch_op.drop_column("left_at")
