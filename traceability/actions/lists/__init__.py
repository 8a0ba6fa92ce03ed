"""Acts on the unit's lists: site, people, devices, places, policy, products, sheets."""
