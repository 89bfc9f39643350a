"""A railway that is simulated: trains with a length and a speed, drives, detectors, and people who
handle trains. It knows nothing of any controller; what happens on it is decided by geometry and
time."""
