"""How sure a fit is, and how its uncertainty travels into whatever is made of K and S."""
