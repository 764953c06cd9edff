"""The chain over the log, and the backups that were found whole"""

import sqlalchemy as sa
from alembic import op

from lathhouse.domain.chain import FIELDS, Chains

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

PAGE = 1000


def upgrade() -> None:
    op.create_table(
        "chain_heads",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("of", sa.Text(), nullable=False),
        sa.Column("head", sa.Text(), nullable=False),
        sa.Column("length", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "of"),
    )
    op.create_table(
        "backups",
        sa.Column("site_id", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.Column("events", sa.BigInteger(), nullable=False),
        sa.Column("chain", sa.Text(), nullable=False),
        sa.Column("seqs", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("site_id", "at"),
    )
    with op.batch_alter_table("events", schema=None) as batch_op:
        batch_op.add_column(sa.Column("chain", sa.Text(), nullable=False, server_default=""))
        batch_op.add_column(sa.Column("device_chain", sa.Text(), nullable=False, server_default=""))
    connection = op.get_bind()
    for site_id in connection.execute(sa.text("SELECT id FROM sites")).scalars().all():
        chain_what_is_there(connection, site_id)


def chain_what_is_there(connection: sa.Connection, site_id: str) -> None:
    """Give the events that are on record already their links, by position."""
    chains, after = Chains(), 0
    columns = ", ".join(FIELDS)
    query = sa.text(
        f"SELECT {columns} FROM events WHERE site_id = :site AND position > :after"
        f" ORDER BY position LIMIT {PAGE}"
    )
    written = sa.text(
        "UPDATE events SET chain = :chain, device_chain = :device"
        " WHERE site_id = :site AND id = :id"
    )
    while True:
        page = connection.execute(query, {"site": site_id, "after": after}).mappings().all()
        if not page:
            break
        rows = []
        for entry in page:
            whole, device = chains.add(dict(entry))
            rows.append({"site": site_id, "id": entry["id"], "chain": whole, "device": device})
        connection.execute(written, rows)
        after = page[-1]["position"]
    heads = sa.text(
        'INSERT INTO chain_heads (site_id, "of", head, length)'
        " VALUES (:site, :name, :head, :length)"
    )
    for of, head in chains.heads.items():
        values = {"site": site_id, "name": of, "head": head, "length": chains.lengths[of]}
        connection.execute(heads, values)


def downgrade() -> None:
    with op.batch_alter_table("events", schema=None) as batch_op:
        batch_op.drop_column("device_chain")
        batch_op.drop_column("chain")
    op.drop_table("backups")
    op.drop_table("chain_heads")
