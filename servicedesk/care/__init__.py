"""The programme of an installation (dated settings) and the additions that entered its water."""
