"""What the instruments say and what it means: canonical values with their standard error."""
