"""What is printed for the bench: labels, wiring, checklists, plans, PDF."""
