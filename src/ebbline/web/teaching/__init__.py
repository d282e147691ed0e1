"""Virtual patients on their pages: learners', teachers'."""
