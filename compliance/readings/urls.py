from django.urls import path

from .views import deviations, imports, offered_acts, paper, readings

urlpatterns = [
    path("readings/", readings.reading_list, name="reading_list"),
    path("readings/add/", readings.reading_add, name="reading_add"),
    path("readings/paper/", paper.reading_paper, name="reading_paper"),
    path("readings/export/", readings.reading_export, name="reading_export"),
    path("readings/import/", imports.reading_import, name="reading_import"),
    path("readings/import/template/", imports.import_template, name="import_template"),
    path("readings/import/<uuid:key>/", imports.import_preview, name="import_preview"),
    path("readings/imports/<int:pk>/", imports.import_detail, name="import_detail"),
    path("readings/<int:pk>/", readings.reading_detail, name="reading_detail"),
    path("readings/<int:pk>/correct/", readings.reading_correct, name="reading_correct"),
    path("readings/<int:pk>/void/", readings.reading_void, name="reading_void"),
    path("sites/<int:site_pk>/acts/", offered_acts.acts_change, name="acts_change"),
    path("deviations/", deviations.deviation_list, name="deviation_list"),
    path("deviations/<int:pk>/", deviations.deviation_detail, name="deviation_detail"),
]
