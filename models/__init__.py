"""Bundles: one folder each with the network, its description and its card."""
