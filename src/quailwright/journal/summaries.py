"""Readings of long ago in less room: each stretch of time summed up, what stood out kept.

A summary stands for the readings of one sensor from `from_ms` to before `until_ms`, which are then
no longer kept one by one: how many, the mean over time, the lowest and the highest with when.
"""

import sqlalchemy as sa

metadata = sa.MetaData()
summary_table = sa.Table(
    "reading_summary",
    metadata,
    sa.Column("sensor", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("from_ms", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("until_ms", sa.BigInteger, nullable=False),
    sa.Column("readings", sa.Integer, nullable=False),
    *(
        sa.Column(f"{what}_{figure}", sa.Double if not figure.endswith("_ms") else sa.BigInteger)
        for what in ("temperature", "humidity")
        for figure in ("mean", "low", "low_at_ms", "high", "high_at_ms")
    ),
    sqlite_with_rowid=False,
)
