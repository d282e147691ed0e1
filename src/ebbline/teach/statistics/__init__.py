"""What a class's answers tell: of the questions, of the agreement, of the terms, of progress."""
