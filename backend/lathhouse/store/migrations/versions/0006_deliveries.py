"""Messages to people, and where they are sent"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "deliveries",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("alert_id", sa.Text(), nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.Column("channel", sa.Text(), nullable=False),
        sa.Column("recipient", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("group_key", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=True),
        sa.Column("due_at", sa.Text(), nullable=False),
        sa.Column("made_at", sa.Text(), nullable=False),
        sa.Column("ended_at", sa.Text(), nullable=True),
        sa.Column("message_id", sa.Text(), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "id"),
    )
    once = ["site_id", "alert_id", "step", "channel", "recipient"]
    op.create_index("deliveries_once", "deliveries", once, unique=True)
    op.create_index("deliveries_by_state", "deliveries", ["site_id", "state", "due_at"])
    op.create_index("deliveries_by_message", "deliveries", ["site_id", "message_id"])
    op.create_index("deliveries_by_recipient", "deliveries", ["site_id", "recipient", "id"])
    op.create_table(
        "push_subscriptions",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("session_hash", sa.Text(), nullable=False),
        sa.Column("endpoint", sa.Text(), nullable=False),
        sa.Column("p256dh", sa.Text(), nullable=False),
        sa.Column("auth", sa.Text(), nullable=False),
        sa.Column("made_at", sa.Text(), nullable=False),
        sa.Column("dropped_at", sa.Text(), nullable=True),
        sa.Column("why", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("site_id", "id"),
    )
    op.create_index(
        "push_subscriptions_by_session", "push_subscriptions", ["site_id", "session_hash"]
    )


def downgrade() -> None:
    op.drop_table("push_subscriptions")
    op.drop_table("deliveries")
