"""The studio store, published releases, and everything that uses them."""
