"""From the bytes of a photo to the probabilities of its form."""
