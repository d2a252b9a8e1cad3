"""A studio fitted and checked. Nothing is mixed, published or printed here."""
