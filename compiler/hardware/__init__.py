"""Facts of accessory hardware: addresses, switch settings, packets.

Plain arithmetic on numbers; knows nothing of layouts or of the language.
"""
