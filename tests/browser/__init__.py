"""Tests in a real Chromium, driven as people drive it: a scanner that types, and a finger."""
