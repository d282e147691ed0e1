"""What is measured and printed: accuracy, agreement with readers, speed."""
