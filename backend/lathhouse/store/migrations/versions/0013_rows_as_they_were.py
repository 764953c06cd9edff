"""Rows with a long log as they were, and how far a fold has come"""

import sqlalchemy as sa
from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table, the index that finds what came after an instant, and the column."""
    op.create_table(
        "row_marks",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("until", sa.Text(), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "kind", "id", "until"),
    )
    op.create_index("events_by_time", "events", ["site_id", "at"])
    with op.batch_alter_table("sites", schema=None) as batch_op:
        batch_op.add_column(sa.Column("refolding", sa.Text(), nullable=True))


def downgrade() -> None:
    """Take them away."""
    with op.batch_alter_table("sites", schema=None) as batch_op:
        batch_op.drop_column("refolding")
    op.drop_index("events_by_time", "events")
    op.drop_table("row_marks")
