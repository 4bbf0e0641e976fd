#!/bin/sh
# Every night: the whole database and all photos and papers; fourteen days are kept.
set -eu
while true; do
  day=$(date +%F)
  pg_dump --host postgres --username saltround --format custom saltround > "/backups/$day.part"
  mv "/backups/$day.part" "/backups/saltround-$day.dump"
  tar -C /media -czf "/backups/media-$day.part" . && mv "/backups/media-$day.part" "/backups/media-$day.tar.gz"
  find /backups -type f -mtime +14 -delete
  sleep 86400
done
