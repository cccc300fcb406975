"""Migrations of the record's tables (Alembic)."""
