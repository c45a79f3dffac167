"""The pages: each module turns a scene into what its template shows and into its JSON twin."""
