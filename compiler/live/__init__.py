"""The railway at work: what comes in from it and from people, what the controller makes of it, and
what is sent."""
