"""Answers in words: codes and values of `fieldfare.analysis.answers` in, sentences for the desk and for the
household out."""
