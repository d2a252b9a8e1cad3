"""The local page: the whole job in a browser, served to this machine and account alone."""
