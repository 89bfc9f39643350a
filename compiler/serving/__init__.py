"""The running railway for people and programs: a page, an interface by HTTP, and who may do
what."""
