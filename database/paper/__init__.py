"""PDF and one-file pages to print and to hand on. They word answers that other rooms give."""
