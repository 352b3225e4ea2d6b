"""Damaged files by the thousand: each reader reads them or says what is wrong with them, soon and in little memory."""
