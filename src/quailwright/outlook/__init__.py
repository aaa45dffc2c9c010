"""What is likely: rates learnt from published figures and this journal, and the weeks ahead."""
