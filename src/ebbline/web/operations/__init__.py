"""What whoever runs the workbench asks of it: is it well, and who did what."""
