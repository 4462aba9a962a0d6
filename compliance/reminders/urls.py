from django.urls import path

from compliance.limits import views as limits
from sites.views import places

from .planning import change_limit, change_site, retire_limit
from .views import appliances, calendar, plans

urlpatterns = [
    path("sites/<int:pk>/edit/", places.site_edit, {"amend": change_site}, name="site_edit"),
    path("limits/<int:pk>/change/", limits.limit_change, {"amend": change_limit}, name="limit_change"),
    path("limits/<int:pk>/retire/", limits.limit_retire, {"amend": retire_limit}, name="limit_retire"),
    path("sites/<int:site_pk>/plans/", plans.plan_list, name="plan_list"),
    path("sites/<int:site_pk>/plans/change/", plans.plan_site, name="plan_site"),
    path("probes/<int:probe_pk>/plan/", plans.plan_probe, name="plan_probe"),
    path("set-up/business/plans/", plans.plan_business, name="plan_business"),
    path("sites/<int:site_pk>/opening/", calendar.opening_change, name="opening_change"),
    path("sites/<int:site_pk>/closures/add/", calendar.closure_add, name="closure_add"),
    path("closures/<int:closure_pk>/void/", calendar.closure_void, name="closure_void"),
    path("sites/<int:site_pk>/appliances/", appliances.appliance_list, name="appliance_list"),
    path("sites/<int:site_pk>/appliances/add/", appliances.appliance_add, name="appliance_add"),
    path("appliances/<int:pk>/edit/", appliances.appliance_edit, name="appliance_edit"),
    path("appliances/<int:pk>/retire/", appliances.appliance_retire, name="appliance_retire"),
    path("appliances/<int:pk>/out-of-use/", appliances.appliance_out, name="appliance_out"),
    path("out-of-use/<int:pk>/back/", appliances.out_of_use_back, name="out_of_use_back"),
    path("out-of-use/<int:pk>/void/", appliances.out_of_use_void, name="out_of_use_void"),
    path("limits/<int:limit_pk>/rounds/", calendar.round_change, name="round_change"),
]
