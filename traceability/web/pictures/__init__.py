"""Pictures made from data: numbers in, SVG text out. No Flask, no SQL, no clock."""
