"""Photographs of packs: bytes in, symbols with places out. Keeps no picture, knows no part."""
