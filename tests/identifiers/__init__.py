"""What a scanner sent, read right: outside cases, laws, independent libraries."""
