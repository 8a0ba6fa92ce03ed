"""What people do with notices: open, add letters, say the scope, answer, work off, close."""
