"""What a fit starts from: its settings, noise, tubes, and the readings as arrays."""
