"""Makes the helpers beside this file importable from every test folder."""
