"""From a picture of a card to what its patches reflect, channel by channel."""
