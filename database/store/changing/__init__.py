"""What is removed, renamed or edited, and how it is taken back; no reading is ever changed here."""
