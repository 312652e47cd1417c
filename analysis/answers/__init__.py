"""Answers to customers' questions, as codes and values; `dashboards` makes the text."""
