"""Passphrases, whose each session surely is, and failed tries that outlive a restart"""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "passphrases",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("set_at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "person_id"),
    )
    op.create_table(
        "known_browsers",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("person_id", sa.Text(), nullable=False),
        sa.Column("made_at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "hash"),
    )
    op.create_table(
        "failed_tries",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("of", sa.Text(), nullable=False),
        sa.Column("at_ms", sa.Text(), nullable=False),
        sa.Column("last_ms", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "of"),
    )
    op.add_column("sessions", sa.Column("proved_id", sa.Text(), nullable=True))
    op.add_column("sessions", sa.Column("by_passphrase", sa.Boolean(), nullable=True))
    op.add_column("sessions", sa.Column("seen_at", sa.Text(), nullable=True))
    op.add_column("pairings", sa.Column("purpose", sa.Text(), nullable=True))
    op.add_column("tokens", sa.Column("used_at", sa.Text(), nullable=True))
    op.execute("UPDATE sessions SET proved_id = person_id, seen_at = made_at")


def downgrade() -> None:
    for table, column in (
        ("tokens", "used_at"),
        ("pairings", "purpose"),
        ("sessions", "seen_at"),
        ("sessions", "by_passphrase"),
        ("sessions", "proved_id"),
    ):
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.drop_column(column)
    for table in ("failed_tries", "known_browsers", "passphrases"):
        op.drop_table(table)
