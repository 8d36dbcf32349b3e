"""The packet model: how a foil-wrapped blade follows the chamber."""
