"""Let the joined files that were made before be proven like all others."""

from django.db import migrations

STORE, SECOND, DERIVED = "store", "second copy", "derived files"
BATCH = 500


def add_copies(apps, schema_editor):
    join_model = apps.get_model("deliverables", "Join")
    copy_model = apps.get_model("intake", "MadeCopy")
    rows = []
    for join in join_model.objects.exclude(sha256="").order_by("pk").iterator(BATCH):
        name = f"joined picture {join.recipe[:8]}"
        path = f"{join.sha256[:2]}/{join.sha256[2:4]}/{join.sha256}.tif"
        common = {"written_at": join.made_at, "name": name}
        rows += [
            copy_model(
                sha256=join.sha256,
                size_bytes=join.size_bytes,
                place=place,
                path=path,
                verified_at=join.made_at,
                is_good=True,
                **common,
            )
            for place in (STORE, SECOND)
        ]
        rows += [
            copy_model(place=DERIVED, path=each["path"], **{**common, "name": f"inverted {name}"})
            for each in join.pictures
            if each["kind"] == "inverted"
        ]
    copy_model.objects.bulk_create(rows, batch_size=BATCH, ignore_conflicts=True)


class Migration(migrations.Migration):
    dependencies = [
        ("deliverables", "0001_initial"),
        ("intake", "0002_copies_of_made_files"),
    ]

    operations = [migrations.RunPython(add_copies, migrations.RunPython.noop)]
