"""Every address, by noun."""

urlpatterns: list = []
