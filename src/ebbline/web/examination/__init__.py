"""The examination on its pages."""
