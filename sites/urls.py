from django.urls import path

from .views import kitchen, links, people, places, session

urlpatterns = [
    path("", session.home, name="home"),
    path("sign-in/", session.SignIn.as_view(), name="sign_in"),
    path("sign-out/", session.SignOut.as_view(), name="sign_out"),
    path("account/", session.account, name="account"),
    path("account/password/", session.account_password, name="account_password"),
    path("account/password/told/", session.account_password_told, name="account_password_told"),
    path("new-password/<int:pk>/<str:token>/", links.new_password, name="new_password"),
    path("account/pin/", kitchen.account_pin, name="account_pin"),
    path("kitchen/", kitchen.kitchen, name="kitchen"),
    path("sites/<int:pk>/devices/", kitchen.site_devices, name="site_devices"),
    path("devices/<int:pk>/revoke/", kitchen.device_revoke, name="device_revoke"),
    path("sites/", places.site_list, name="site_list"),
    path("sites/found/", places.site_choices, name="site_choices"),
    path("sites/add/", places.site_add, name="site_add"),
    path("set-up/business/", places.business_edit, name="business_edit"),
    path("set-up/areas/", places.area_setup, name="area_setup"),
    path("set-up/areas/add/", places.area_add, name="area_add"),
    path("set-up/areas/<int:pk>/", places.area_edit, name="area_edit"),
    path("people/", people.people, name="people"),
    path("people/add/", people.person_add, name="person_add"),
    path("people/<int:pk>/", people.person_edit, name="person_edit"),
    path("people/<int:pk>/name/", people.person_name, name="person_name"),
    path("people/<int:pk>/roles/add/", people.role_add, name="role_add"),
    path("people/<int:pk>/password/", links.person_password, name="person_password"),
    path("people/<int:pk>/stop/", people.person_stop, name="person_stop"),
    path("people/<int:pk>/restart/", people.person_restart, name="person_restart"),
    path("roles/<int:pk>/remove/", people.role_remove, name="role_remove"),
]
