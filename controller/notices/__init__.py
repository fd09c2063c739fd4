"""What a person is told: every notice, its words and its life."""
