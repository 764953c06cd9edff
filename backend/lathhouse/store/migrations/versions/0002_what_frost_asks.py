"""What frost and heat ask of a lot, beside its row."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column and its index; every lot is looked at again, which fills them."""
    with op.batch_alter_table("subjects", schema=None) as batch_op:
        batch_op.add_column(sa.Column("weather", sa.Text(), nullable=True))
    op.create_index(
        "subjects_by_weather",
        "subjects",
        ["site_id", "kind", "place_id", "id"],
        sqlite_where=sa.text("weather IS NOT NULL"),
        postgresql_where=sa.text("weather IS NOT NULL"),
    )
    op.execute("UPDATE subjects SET next_deadline = '1970-01-01T00:00:00.000Z' WHERE kind = 'lot'")


def downgrade() -> None:
    """Take both away."""
    op.drop_index("subjects_by_weather", table_name="subjects")
    with op.batch_alter_table("subjects", schema=None) as batch_op:
        batch_op.drop_column("weather")
