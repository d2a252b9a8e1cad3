"""The studio's database, a module a subject.

Nothing is calculated here, and no other room imports sqlalchemy for a query.
"""
