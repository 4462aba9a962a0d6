from django.urls import path

from . import views

urlpatterns = [
    path("notices/", views.notice_list, name="notice_list"),
    path("notices/read/", views.notice_read_all, name="notice_read_all"),
    path("notices/<int:pk>/read/", views.notice_read, name="notice_read"),
    path("notices/<int:pk>/again/", views.notice_again, name="notice_again"),
    path("notices/mail/", views.notice_post, name="notice_post"),
    path("account/notices/", views.notice_choices, name="notice_choices"),
    path("sites/<int:pk>/feeds/", views.feed_list, name="feed_list"),
    path("feeds/<int:pk>/revoke/", views.feed_revoke, name="feed_revoke"),
    path("feeds/<slug:secret>.ics", views.feed, name="feed"),
]
