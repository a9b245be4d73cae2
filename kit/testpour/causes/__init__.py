"""Why a casting came out as it did: causes ranked, differences priced, questions that tell, and the test pour."""
