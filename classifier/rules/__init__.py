"""Categories, facts, cautions, local rules, and the suggestion made from them."""
