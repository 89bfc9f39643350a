"""Reading back: what was written for the bench, played into a simulated bench.

Each file of commands is parsed again from its bytes and nothing else; what the
simulated drives and signals then do must be what was proved. No file is made here.
"""
