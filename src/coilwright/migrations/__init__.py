"""How an older store is brought up to date: one Alembic step per file, applied in order when a store is opened.

A step stands as it was released: it names its tables itself and imports nothing of the package.
"""
