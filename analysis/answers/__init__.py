"""Answers to what people ask on the phone: codes and values; the words are made where they are shown."""
