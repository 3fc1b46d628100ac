"""From labelled photographs to a bundle: manifest, splits, training, evaluation, export."""
