"""Every address of the application; each feature keeps its own."""

urlpatterns = []
