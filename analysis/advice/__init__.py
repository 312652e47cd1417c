"""Advised settings, with their effect on rooms and bill."""
