"""A wall between the sites of one PostgreSQL: row-level security on every table"""

from alembic import op

from lathhouse.store import walls

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # Tables of later migrations get theirs as each run of migrations ends (`walls.lowered`).
    if op.get_bind().dialect.name == "postgresql":
        walls.build(op.get_bind())


def downgrade() -> None:
    if op.get_bind().dialect.name == "postgresql":
        walls.pull_down(op.get_bind())
